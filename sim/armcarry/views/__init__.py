"""What a room of people looks at: pictures, plots, the player, the page, the briefing."""
