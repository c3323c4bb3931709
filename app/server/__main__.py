"""``python -m app.server`` is ``evenbore``. A process that it begins imports this module too, and must not run it."""

if __name__ == "__main__":
    import multiprocessing

    multiprocessing.freeze_support()  # the program in a folder of its own is begun again in this way

    from app.server.cli import main

    main()
