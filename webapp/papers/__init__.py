"""Paper read back: photos of tally sheets and answer sheets, confirmed by a person."""
