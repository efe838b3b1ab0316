-- The co-op's store is kept by one of its makers: by the one that was named last. Whoever acts for
-- the co-op names it, and all its makers know.

select walls.key('ledger_storenaming', false), walls.in_coop('ledger_storenaming'),
       walls.link('ledger_storenaming', 'keeper_id', 'ledger_maker'),
       walls.append_only('ledger_storenaming');
select walls.wall('ledger_storenaming', own,
                  own || format(' and %s is null', walls.reads('app.maker')))
  from (select format('coop_id = %s', walls.reads('app.coop'))) s(own);
