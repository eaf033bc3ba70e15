"""For all tests: none fails because the machine is busy. What a test draws is checked, how fast it is drawn is not."""

from hypothesis import HealthCheck, settings

settings.register_profile("unhurried", deadline=None, suppress_health_check=[HealthCheck.too_slow])
settings.load_profile("unhurried")
