"""Pages of the shop itself: settings, meters, people, tablets, backups, statistics, and this tablet."""
