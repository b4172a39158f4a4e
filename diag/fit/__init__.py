"""From a person's own vehicle to its description: what is asked, what follows, and how much the guesses matter."""
