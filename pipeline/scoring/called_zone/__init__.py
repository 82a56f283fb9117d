"""Where the zone is really called: four edges an umpire, against the rule book's."""
