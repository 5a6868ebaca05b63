"""What keeps strangers out: form tokens, headers, where a request comes from, files told by their content."""
