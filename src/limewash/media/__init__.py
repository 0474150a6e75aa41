"""Pictures, video and sound as files."""
