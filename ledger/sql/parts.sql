-- What materials are made of. A part is seen by whoever sees the material, and is as much a
-- maker's own as the material is.
select walls.key('ledger_materialpart', false), walls.in_coop('ledger_materialpart');
select walls.wall('ledger_materialpart', own,
  own || ' and exists (select from ledger_material m'
         '   where m.coop_id = ledger_materialpart.coop_id'
         '     and m.id = ledger_materialpart.material_id'
         '     and m.maker_id is not distinct from ledger_materialpart.maker_id)')
  from (select format('coop_id = %s and (maker_id is null or maker_id = %s)',
                      walls.reads('app.coop'), walls.reads('app.maker'))) s(own);
select walls.link('ledger_materialpart', 'maker_id', 'ledger_maker'),
       walls.link('ledger_materialpart', 'material_id', 'ledger_material');

-- A composition makes exactly 100 %, allergens at most; all of one material are written at once.
create function ledger_check_parts() returns trigger language plpgsql as $$
declare bad record;
begin
  select p.material_id, p.kind, sum(p.percent) as total into bad
    from (select distinct coop_id, material_id from added) a
    join ledger_materialpart p on p.coop_id = a.coop_id and p.material_id = a.material_id
   group by p.material_id, p.kind
  having sum(p.percent) > 100 or p.kind = 'part' and sum(p.percent) <> 100 limit 1;
  if found then
    raise exception 'The parts make % %%, not 100 %%.', bad.total
      using errcode = '23514', constraint = 'material_parts_100',
        detail = json_build_object('total', trim_scale(bad.total));
  end if;
  return null;
end $$;
create trigger check_parts after insert on ledger_materialpart
  referencing new table as added for each statement execute function ledger_check_parts();
revoke update, truncate on ledger_materialpart from stillroom;
