"""One process per port: it holds the port, and every command talks through it."""
