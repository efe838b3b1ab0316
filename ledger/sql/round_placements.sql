-- Which orders of a round its buyer has written. Whoever acts for the co-op sees that it was done.

select walls.key('ledger_roundplacement', true),
       walls.link('ledger_roundplacement', 'maker_id', 'ledger_maker'),
       walls.link('ledger_roundplacement', 'order_id', 'ledger_roundorder', 'maker'),
       walls.link('ledger_roundplacement', 'purchase_order_id', 'ledger_purchaseorder', 'maker'),
       walls.append_only('ledger_roundplacement');
select walls.wall('ledger_roundplacement',
  format('coop_id = %1$s and (maker_id = %2$s or %2$s is null)',
         walls.reads('app.coop'), walls.reads('app.maker')),
  format('coop_id = %s and maker_id = %s', walls.reads('app.coop'), walls.reads('app.maker')));
