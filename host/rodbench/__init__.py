"""rodbench: set up, run and prove feedback linear actuators on a hobby controller board."""
