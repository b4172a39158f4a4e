"""The electrical network: parts to branches, faults as small changes, the DC solution, and what
each lamp, sound and test point shows. Knows nothing of questions, beliefs or terminals of screens."""
