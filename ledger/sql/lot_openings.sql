-- When a maker opened a lot. Each says it anew, and the latest stands in its custody, where whoever
-- uses the lot looks.

select walls.key('ledger_lotopening', true), walls.of_maker('ledger_lotopening'),
       walls.append_only('ledger_lotopening');
select walls.link('ledger_lotopening', 'maker_id', 'ledger_maker'),
       walls.link('ledger_lotopening', 'lot_id', 'ledger_lot'),
       walls.link('ledger_lotopening', 'entry_id', 'ledger_entry', 'maker');
grant select, insert on ledger_lotopening to stillroom_ledger;

create trigger opens_lot before insert on ledger_lotopening
  for each row execute function ledger_open_lot();
