-- Joint products are a maker's own, and only ever added.
select walls.key('formulas_jointproduct', true), walls.of_maker('formulas_jointproduct'),
       walls.link('formulas_jointproduct', 'maker_id', 'ledger_maker'),
       walls.link('formulas_jointproduct', 'making_id', 'formulas_making', 'maker'),
       walls.link('formulas_jointproduct', 'lot_id', 'ledger_lot'),
       walls.append_only('formulas_jointproduct');

-- Those of one making carry what it says that they do, whoever writes them.
create function formulas_check_joint_products() returns trigger language plpgsql as $$
begin
  if exists (
    select from (select distinct coop_id, making_id from added) a
      join formulas_making m on m.coop_id = a.coop_id and m.id = a.making_id
      cross join lateral (
        select sum(g.grams) as grams, sum(g.value) as value from formulas_jointproduct g
         where g.coop_id = m.coop_id and g.making_id = m.id and g.position > 0) beside
     where (m.joint_grams, m.joint_value) is distinct from (beside.grams, beside.value)) then
    raise exception 'Joint products weigh and carry what their making says.'
      using errcode = '23514', constraint = 'joint_products_of_making';
  end if;
  return null;
end $$;
create trigger check_joint_products after insert on formulas_jointproduct
  referencing new table as added
  for each statement execute function formulas_check_joint_products();
