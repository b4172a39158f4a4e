"""The job: its append-only journal and the state that replay gives. Knows nothing of knowledge files."""
