-- Tests of a source: a maker's own, only ever added, and only of what is not kept in lots.
select walls.key('ledger_sourcetest', true), walls.of_maker('ledger_sourcetest'),
       walls.link('ledger_sourcetest', 'maker_id', 'ledger_maker'),
       walls.link('ledger_sourcetest', 'material_id', 'ledger_material'),
       walls.append_only('ledger_sourcetest');
