"""Pictures of the program at work, drawn from what it really shows."""
