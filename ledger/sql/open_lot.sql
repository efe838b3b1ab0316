-- What is said of a lot's opening stands in its custody.
--
-- Only what is weighed out of a container is opened, for each piece is opened by itself.
--
-- Not before it came, but for what was there before the books began: when that came nobody says.
-- What was said before is put right by somebody who says why, and so is what the books show:
-- whoever names a day after the first draw means another container. Where nobody says it, days came
-- with its material (days_given.sql), and nothing is put right.
create or replace function ledger_open_lot() returns trigger
language plpgsql security definer set search_path = pg_catalog, public, pg_temp as $$
declare
  before date;
  drawn date;
begin
  select c.opened_on into before from ledger_custody c
    where c.coop_id = new.coop_id and c.maker_id = new.maker_id and c.lot_id = new.lot_id
    for update;
  if not found then
    raise exception 'Whoever has a lot says when it was opened.'
      using errcode = '23514', constraint = 'opening_of_own_lot';
  end if;
  if new.opened_on is not null and exists (
      select from ledger_lot l
        join ledger_material m on m.coop_id = l.coop_id and m.id = l.material_id
        where l.coop_id = new.coop_id and l.id = new.lot_id and m.measured_by = 'count') then
    raise exception 'Each piece is opened by itself.'
      using errcode = '23514', constraint = 'opening_of_weighed_lot';
  end if;
  if exists (select from ledger_lot l where l.coop_id = new.coop_id and l.id = new.lot_id
               and new.opened_on < l.arrived_on
               and (l.supplier_id is not null or l.made_in_id is not null)) then
    raise exception 'A lot is not opened before it came.'
      using errcode = '23514', constraint = 'opening_after_arrival';
  end if;
  if new.entry_id is null and new.opened_on > (
      select (clock_timestamp() at time zone c.time_zone)::date from ledger_coop c
        where c.id = new.coop_id) then
    raise exception 'A lot is opened today at the latest.'
      using errcode = '23514', constraint = 'opening_not_in_future';
  end if;
  if new.entry_id is null and new.person_id is not null and new.reason = '' then
    if before is not null or new.opened_on is null then
      raise exception 'What was said of an opening is put right for a reason.'
        using errcode = '23514', constraint = 'opening_put_right_for_a_reason';
    end if;
    drawn := ledger_first_drawn(new.maker_id, new.lot_id);
    if drawn < new.opened_on then
      raise exception 'Some was drawn before that day.' using errcode = '23514',
        constraint = 'opening_after_draw_for_a_reason',
        detail = jsonb_build_object('drawn_on', drawn);
    end if;
  end if;
  -- Draws that were told before and after are told apart by it, so it is the database's own clock.
  new.recorded_at := clock_timestamp();
  update ledger_custody c
    set opened_on = new.opened_on, use_by = new.opened_on + new.use_within_days
    where c.coop_id = new.coop_id and c.maker_id = new.maker_id and c.lot_id = new.lot_id;
  return new;
end $$;
select walls.define('ledger_open_lot()');
