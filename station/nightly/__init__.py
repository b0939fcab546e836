"""The nightly: the station's own code on simulated benches whose truth is known, on good days and bad ones.

    scenario  what a file in `fixtures/nightly` says       making   lot, bench errors and faults of scenario and seed
    script    what goes wrong, numbered                    night    one scenario with one seed, from empty home to tally
    truth     what a perfect bench would find              tally    counts of a night; adds up
    figures   the table: scenario by figure                pool     all nights on all cores
    kept      last, accepted and earlier nights            junit    the same for machines
    trends    figures over the nights, a page              shrinking  the fewest mishaps with which a night still fails
"""
