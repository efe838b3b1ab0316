-- The most of a material in each kind of product: seen by whoever sees the material, and as much a
-- maker's own as the material is.
select walls.key('ledger_materialmaximum', false), walls.in_coop('ledger_materialmaximum');
select walls.wall('ledger_materialmaximum', own,
  own || ' and exists (select from ledger_material m'
         '   where m.coop_id = ledger_materialmaximum.coop_id'
         '     and m.id = ledger_materialmaximum.material_id'
         '     and m.maker_id is not distinct from ledger_materialmaximum.maker_id)')
  from (select format('coop_id = %s and (maker_id is null or maker_id = %s)',
                      walls.reads('app.coop'), walls.reads('app.maker'))) s(own);
select walls.link('ledger_materialmaximum', 'maker_id', 'ledger_maker'),
       walls.link('ledger_materialmaximum', 'material_id', 'ledger_material');
revoke update, truncate on ledger_materialmaximum from stillroom;
