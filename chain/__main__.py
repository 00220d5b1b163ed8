"""`python -m chain`: the same program without the installed script."""

from chain.cli.main import main

main()
