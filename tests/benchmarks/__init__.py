"""How fast the server is, each piece of work beside the least that could do it on this machine.

`deploy/bench` runs it. A floor is small code written for this alone: no Django where the ledger is
measured, a plain Django REST framework view where a list is. Floor and ours take turns within each
round, and what is compared is the median of the rounds, so that a machine that is busy with other
things spoils the figures but hardly their ratio. The client shares the machine's cores as well.
"""
