"""What the case can take: materials, wall and closures."""
