"""Commands: ask and show, nothing else. The logic is in `station.app` and below."""
