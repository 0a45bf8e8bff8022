"""Weather in, soil state, risk, advice, alerts out: a forecaster for dry patch and fairy rings on sports turf."""

__version__ = "0.1.0"
