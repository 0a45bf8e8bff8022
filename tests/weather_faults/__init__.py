"""Weather services that fail, over real connections on the loopback, and what a cycle makes of it."""
