"""What the larger commands do; ``cli`` only reads their words."""
