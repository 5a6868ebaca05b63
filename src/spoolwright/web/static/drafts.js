// Drafts: see below
