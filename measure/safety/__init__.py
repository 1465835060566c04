"""What may sound, and how much of it: limits, the tweeters' account, and the cautions."""
