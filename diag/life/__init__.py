"""What a rule has earned and what is known of it: told in words, judged on recorded jobs, moved from draft on."""
