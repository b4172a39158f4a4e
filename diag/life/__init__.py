"""What is known of a rule and what it has earned: told in words, judged on recorded jobs, moved from draft to proven."""
