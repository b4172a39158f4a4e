"""What is known of circuits, parts and vehicles: reading, checking and assembling the YAML files.

Must not know of equations, questions or terminals of any screen.
"""
