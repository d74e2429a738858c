"""Inbox, intake, worker processes and supervision."""
