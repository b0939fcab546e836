"""Why a coil reads as it does: the probability of each cause, with evidence, for one unit or a lot.

Pure functions on frozen data. Priors are in `kinds` and `level`, signatures of causes come from `station.coil`.
"""
