"""What a printed chart says about hearing and overuse.

Sources: NIOSH, Workplace Solutions: reducing the risk of hearing disorders among musicians, June 2015; N. Azar 2020,
Medical Problems of Performing Artists 35(3), 153-161, on drummers' overuse. They give no limit for a practice room.
"""

CAUTIONS = (
    "Warm up, start below your tempo, and rest before you feel tired. Drums in a small room are loud enough to want "
    "ear protection, and headphones over drums tempt you to turn up: keep the volume low.",
    "Stop when something hurts, tingles or goes numb, or when your ears ring or sound dull. If it comes back or stays, "
    "see a clinician. Rules of your school, club or employer come first.",
    "Sources: NIOSH, Workplace Solutions for musicians, 2015; N. Azar, Medical Problems of Performing Artists, 2020.",
)
