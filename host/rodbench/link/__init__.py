"""The link to a board: transports, and the client that asks at most once."""
