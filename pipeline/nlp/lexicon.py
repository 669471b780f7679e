"""Closed classes of words that the reading of scope leans on: what may stand between, before and after.

They are grammar rather than rules of sellers: words that name nothing of their own, so that what they join belongs
together. Open lists (what is a fault, what is praise) are in `rules/scope`.
"""

from pipeline.types import Status


def word_set(text: str) -> frozenset[str]:
    """The words of a text."""
    return frozenset(text.split())


# Articles, positions and plain adjectives within the name of a part.
BETWEEN = word_set(
    "a an the its my his her all both some any of front rear back left right nearside offside near off side driver "
    "passenger inner outer lower upper new old original big small little very bit ns os nsf osf nsr osr n/s o/s "
    "four two one pair set complete full genuine good decent quality own matching other main"
)
# Between a weak finding and the part it is told of.
LINKS = BETWEEN | word_set(
    "on in to at from around under along by near inside behind underneath round across over above below this that "
    "these those your it through into usual"
)
# Between a part and what is said of it.
COPULAS = word_set("is are was were been be has have had both all")
# A part after one of these says where, not what.
PLACES = word_set("above below by near behind beside under underneath beneath around round over next against past")
# A finding with one of these is a denial itself.
DENIALS = word_set(
    "no not never none nil without nothing zero isnt arent wasnt doesnt dont didnt hasnt havent wont cant aint nor "
    "un non free"
)
# Words that name nothing: a chunk of these and a cue speaks of what was named before.
FILL = (
    word_set(
        "it its they them that this these those both all been was were had have has having now since so but which not "
        "will would could should might may is are just only each got get done still though although a an the "
        "very quite "
        "pretty really rather too also always never ever even yet again then as at in on of for by to with "
        "and or i ive "
        "we you he she who everything stays stay runs goes go seems appears looks feels looked sounded be being well "
        "about around soon eventually needed doing replacing changing sorting fixing attention work looking once again "
        "seem appear look feel become became mot test winter section letting plate patch weld welding "
        "rebuild replacement refurb recon repair tlc love job "
        "kit pair set part parts seal full new ones unit spare bits replacements "
        "otherwise however properly recently lately fully totally completely absolutely today currently "
        "there here some "
        "more most much little bit lot when if though last year month week ago back one other rest before after"
    )
    | BETWEEN
)
# A sentence that opens with one may go on about the one before.
BACK = word_set(
    "they that this these those both all been was were now since but which not will would could should might may is "
    "are just each done still though although"
)
# Before a reading at which work was done.
AT = word_set("at @ by around about circa done on")
# Before a time from or until which a thing is so.
SINCE = word_set("since from for until till to every")
# After a span of time or distance.
AGO = frozenset({"ago", "back"})
# After the year of the thing itself, not of work on it.
DATING = word_set("code codes dated date reg plate model registered spec mk")
# A chunk with one is no bare member of a list.
VERBS = word_set("is are was were has have had does do did")
# Told in the past.
PAST = word_set("was were had did went came began got used took made started developed failed let")
# What follows came of what went before.
THEN = word_set("so then until till now → >")
# What follows is otherwise.
CONTRAST = word_set("but though although however yet tho")
# A chunk that opens with one speaks of what stands before it.
RELATIVE = word_set("which it they that still")
# A need that ends so wants an object: it is told of another thing when one follows.
WANTING = word_set("need want require a an new some the for its")
# This one, after the model in general.
MINE = word_set("mine ours hers this")
# The same part in another place.
PLACED = word_set("front rear back left right nearside offside near off ns os nsf osf nsr osr n/s o/s other rest one")
# Words that a part below a heading may have beside it, by the heading's status.
SPARE: dict[Status, int] = {"absent": 1, "done": 3, "due": 4, "present": 5, "possible": 3}  # below a heading
