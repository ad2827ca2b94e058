"""Write the invented past of the demonstration fleet: clean for years, then finds.

    python demo-data/make_demo_past.py > demo-data/demo-past.csv

The looks are those that the study says were taken; the answers are drawn by the engine. Of many pasts that might have
been this one was taken for its story: nothing until 2022, then six blades in the two rows of one rotor. How many cracks
are left in each row goes to standard error, so that what is believed can be held against it.
"""

import serrata

SEED = 132

text, truth = serrata.Study.load("demo-data/demo-study.toml").invented_past(SEED)
