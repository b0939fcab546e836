"""Statistics of gauges and decisions: pure functions on frozen data, no input or output.

Words are those of AIAG Measurement Systems Analysis (4th edition), ISO 22514-7 and JCGM 106. A study's *part* is
whatever is measured again and again: here a unit. Values are in the unit of the readings that come in.
"""
