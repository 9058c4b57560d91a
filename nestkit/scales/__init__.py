"""The same build at other sizes: what each comes to, where the cliffs are, and the largest that fits."""
