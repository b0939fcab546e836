"""The simulated bench: instruments that speak the bytes of real ones, around one simulated coil."""
