"""What may sound, and how much of it: limits, the tweeters' account, and the cautions.

`limits` admits a signal or refuses it, by `signal_power` and what the loudspeakers were given
lately: `treble_account` counts it, `treble_ledger` keeps it over all commands.
"""
