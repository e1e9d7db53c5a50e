"""The marker of these tests, so that they can be run alone too."""


def pytest_configure(config):
    config.addinivalue_line("markers", "rule(number): the rule that a test holds the code to")
