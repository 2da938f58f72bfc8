"""Pages of the season: the list of wishes, its evenings, and what comes of them."""
