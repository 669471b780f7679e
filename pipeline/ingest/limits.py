"""How much a file may ask of the reader. They bound work on hostile files; no honest advert comes near them."""

MOST_BYTES = 128_000_000  # of one file; larger ones are left where they are and reported
MOST_CHARACTERS = 200_000  # of one advert's words; a long one has ten thousand
MOST_PAGE = 40_000_000  # bytes of one saved page, its pictures inside it
MOST_ADVERTS = 50_000  # in one file
FEWEST_WORDS = 12  # of one advert; below this the drop rules have probably eaten it
MOST_LINE = 1_000_000  # characters of one row of a table
MOST_PARTS = 500  # of one mail
MOST_MEMBERS = 5_000  # of one archive
MOST_UNPACKED = 256_000_000  # bytes that one archive may grow to
MOST_NESTED = 2  # archives in archives, mails in mails
MOST_PAGES = 50  # of one printed page file
MOST_SHEETS = 50
MOST_COLUMNS = 500
SECONDS = 5.0  # of processor time a file
SECONDS_PER_MEGABYTE = 0.1  # and so much more for a large one
WALL_SECONDS = 60.0  # however busy the machine is
MEMORY = 2_000_000_000  # bytes of the process that reads
