"""What is measured on frames: pure functions, arrays in, numbers with their units out.

Nothing here judges (that is `pipeline.specification` with `check`), corrects, or opens a file. Pixels come
through the protocol of `pipeline.measure.pixels`; what could not be measured is `NotMeasured`, with why.
"""
