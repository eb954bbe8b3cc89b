"""One allowance per kind of comparison, each with its physical reason."""

ROUNDING = 1e-12
"""Relative: a few operations in double precision, some 1e-16 each. Formula against exact formula."""

CLOSURE_M = 1e-12
"""A sum of a few lengths of metres to hundreds of metres, a few units in the last place each."""

NOISE_M = 1e-9
"""A nanometre: rounding of decimal readings on elevations of kilometres, far below any rod."""

PRINTED_FT = 0.005
"""Half the last digit of a book that prints hundredths of a foot."""

PRINTED_M_4 = 0.00005
"""Half the last digit of a book that prints tenths of a millimetre."""

PRINTED_DEG_3 = 0.0005
"""Half the last digit of a table of degrees to three decimals."""
