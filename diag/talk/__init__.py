"""The conversation as plain objects: what is asked, what is answered, and how typed words are understood."""
