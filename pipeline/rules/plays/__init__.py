"""Case plays: a situation told in words, the ruling, and the wrong rulings that umpires really make there."""
