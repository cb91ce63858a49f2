"""Who works at which worksite when, read off a record: stops of riders, stays of all who work."""
