"""What photos say for and against a candidate member, in nats."""
