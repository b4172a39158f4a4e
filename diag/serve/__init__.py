"""The conversation as pages for a phone or tablet at the vehicle, served from this machine."""
