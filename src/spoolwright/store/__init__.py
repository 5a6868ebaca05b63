"""The shop's records on disk: entries in a hash chain, attachments by content, secrets, sessions."""
