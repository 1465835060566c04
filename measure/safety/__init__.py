"""What may sound, and how much of it: limits, the tweeters' account, and the cautions.

`limits` admits a signal or refuses it, by `signal_power` and what the loudspeakers were given
lately: `treble_account` holds the caps above 2 kHz and counts, `treble_ledger` keeps the
account over all commands.
"""
