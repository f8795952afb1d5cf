"""What people and programs read: text, JSON, and later pages; every number comes from an analysis result."""
