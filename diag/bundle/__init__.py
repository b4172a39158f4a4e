"""A job with the knowledge it was weighed by and its log, as one file that another machine opens years later."""
