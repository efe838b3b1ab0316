-- What a maker would pay alone by offers of its own is behind its wall: not even whoever acts for
-- the co-op may read it.

select walls.key('ledger_roundownalone', true), walls.of_maker('ledger_roundownalone'),
       walls.link('ledger_roundownalone', 'maker_id', 'ledger_maker'),
       walls.link('ledger_roundownalone', 'round_id', 'ledger_orderround'),
       walls.append_only('ledger_roundownalone');
