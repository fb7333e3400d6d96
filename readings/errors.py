"""One tree of errors; every message says what was got, what is allowed, what to do."""


class SparehandError(Exception):
    """Anything Sparehand says in its own words; the cause is kept in ``__cause__``."""

    exit_code = 1


class BadInputError(SparehandError):
    """The person gave something that cannot be used: one sentence, exit code 2."""

    exit_code = 2


class SourceError(BadInputError):
    """A picture source is missing, unreadable, empty or of the wrong size."""


class BookError(SparehandError):
    """The record book cannot be opened, written or trusted."""

    exit_code = 2


class ServiceError(SparehandError):
    """The running service cannot be reached or refused a command."""

    exit_code = 2


class FaultError(SparehandError):
    """Something broke that the person did not cause: exit code 1."""
