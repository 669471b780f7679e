"""One pool of adverts, many members: what each should look at, and what the club's adviser should know of all."""
