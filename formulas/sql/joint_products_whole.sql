-- What a making says of its joint products has them: the main one, whose lot is the making's, and
-- at least one beside it. Looked at once all of it is written.
create function formulas_check_joint_whole() returns trigger language plpgsql as $$
begin
  if not exists (
      select from formulas_jointproduct g
       where g.coop_id = new.coop_id and g.making_id = new.id and g.position = 0
         and g.lot_id = new.lot_id)
    or not exists (
      select from formulas_jointproduct g
       where g.coop_id = new.coop_id and g.making_id = new.id and g.position > 0) then
    raise exception 'A making of several products has its main one and another.'
      using errcode = '23514', constraint = 'joint_products_whole';
  end if;
  return null;
end $$;
create constraint trigger check_joint_whole after insert on formulas_making
  deferrable initially deferred for each row when (new.joint_base <> '')
  execute function formulas_check_joint_whole();
