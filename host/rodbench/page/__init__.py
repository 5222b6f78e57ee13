"""The page beside the machine: served to a browser on this computer, by `rodbench page`."""
