"""The command `levelgain`."""

__all__ = ["main"]


def main() -> None:
    """Run the command line; see `optimizer.cli.app.main`."""
    # Here, so that `python -m optimizer.cli.app` finds its module not loaded yet.
    from optimizer.cli import app  # noqa: PLC0415

    app.main()
