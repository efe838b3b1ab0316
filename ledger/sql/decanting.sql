-- Decantings and deposits: a maker's own, and only added.

select walls.key(t, true), walls.of_maker(t), walls.link(t, 'maker_id', 'ledger_maker'),
       walls.append_only(t)
  from unnest(array['ledger_decanting', 'ledger_decantingdraw', 'ledger_deposit',
                    'ledger_depositreturn']) t;
select walls.link('ledger_decanting', 'lot_id', 'ledger_lot'),
       walls.link('ledger_decanting', 'entry_id', 'ledger_entry', 'maker'),
       walls.link('ledger_decantingdraw', 'decanting_id', 'ledger_decanting', 'maker'),
       walls.link('ledger_decantingdraw', 'lot_id', 'ledger_lot'),
       walls.link('ledger_decantingdraw', 'transfer_id', 'ledger_transfer'),
       walls.link('ledger_deposit', 'supplier_id', 'ledger_supplier'),
       walls.link('ledger_deposit', 'lot_id', 'ledger_lot'),
       walls.link('ledger_deposit', 'entry_id', 'ledger_entry', 'maker'),
       walls.link('ledger_depositreturn', 'deposit_id', 'ledger_deposit', 'maker'),
       walls.link('ledger_depositreturn', 'entry_id', 'ledger_entry', 'maker');
