"""When each step starts: the least silence first, then the least length. Knows only tasks."""
