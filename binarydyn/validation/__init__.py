"""Does it agree with what is published: reference cases, each number beside its source."""
