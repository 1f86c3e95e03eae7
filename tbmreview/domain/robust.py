"""The one figure of robust statistics that every part shares."""

# From a median absolute deviation to the standard deviation of a normal distribution: 1 / the upper quartile of the
# standard normal one, 0.67449; scipy.stats.median_abs_deviation(scale="normal") is the check.
MAD_TO_SIGMA = 1.4826
