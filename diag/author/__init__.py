"""Rules from a technician's hand: added from a job, shown with what recorded jobs say of them, moved through life."""
