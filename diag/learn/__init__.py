"""Learning from closed jobs: what was confirmed, what it does to published shares. Nothing is learned unasked."""
