"""Every write that can move a due date, each with the dates kept true in one transaction."""
