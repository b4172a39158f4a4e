"""What a stranger must be able to trust: nothing acknowledged is lost, and no input does harm."""
