"""The log: a job told to a stranger, as Markdown, JSON or CSV. Replays the journal; decides nothing."""
