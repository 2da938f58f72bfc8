"""What the case can take: materials, wall and closures. In: sizes, a pressure. Out: stress, margin, weakest part."""
