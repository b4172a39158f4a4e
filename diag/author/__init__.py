"""Adding to the rules what a closed job taught: proposed, asked, tried on recorded jobs, written as YAML."""
