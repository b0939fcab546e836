"""Builds the objects, and alone chooses simulated or real. Commands and pages ask here and nowhere below."""
