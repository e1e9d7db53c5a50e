"""The command that says what is set."""

import click

from api.cli_opened import told


@click.command()
def config() -> None:
    """Say each setting, its value and where it came from; secrets are hidden.

    A variable of the environment goes before the TOML file that SETTLE_CONFIG names. The same
    setting is SETTLE_SHOP_NAME there and name under [shop] here.

    Example:  SETTLE_CONFIG=settle.toml settle config
    """
    from api.settings import find_settings, unknown_variables

    with told():
        found = find_settings()
    names = max(len(each.setting.place) for each in found)
    values = max(len(each.shown) for each in found)
    for each in found:
        click.echo(f"{each.setting.place:<{names}}  {each.shown:<{values}}  {each.source}")
    for name in unknown_variables():
        click.echo(f"{name} is read by nobody.", err=True)


COMMANDS = (config,)
