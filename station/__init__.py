"""The station: what a bench measures, how it is judged, and where it is kept."""
