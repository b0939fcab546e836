"""Hosts: what puts simulated instruments behind a link (memory, TCP, pseudo-terminal)."""
