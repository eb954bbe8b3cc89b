"""Named ratios within one run, of medians but where a benchmark says otherwise: python -m tests.benchmarks --json"""
