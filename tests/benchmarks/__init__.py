"""Named ratios, medians within one run: python -m tests.benchmarks --json"""
