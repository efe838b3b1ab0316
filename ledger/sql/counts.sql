-- Counts: their walls, and what must hold when a sheet is closed.

select walls.key(t, true), walls.of_maker(t), walls.link(t, 'maker_id', 'ledger_maker')
  from unnest(array['ledger_countsheet', 'ledger_countline', 'ledger_countreading',
                    'ledger_countcause']) t;
select walls.link('ledger_countline', 'sheet_id', 'ledger_countsheet', 'maker'),
       walls.link('ledger_countline', 'lot_id', 'ledger_lot'),
       walls.link('ledger_countline', 'material_id', 'ledger_material'),
       walls.link('ledger_countreading', 'line_id', 'ledger_countline', 'maker'),
       walls.link('ledger_countcause', 'line_id', 'ledger_countline', 'maker'),
       walls.link('ledger_countcause', 'account_id', 'ledger_account', 'maker'),
       walls.link('ledger_countcause', 'entry_id', 'ledger_entry', 'maker');
select walls.append_only('ledger_countreading'), walls.append_only('ledger_countcause');
revoke delete, truncate on ledger_countsheet, ledger_countline from stillroom;
revoke update on ledger_countsheet, ledger_countline from stillroom;
grant update (state, reason, ended_at, ended_by_id) on ledger_countsheet to stillroom;
grant update (is_open, readings, counted, book, tolerance, counted_at) on ledger_countline
  to stillroom;

-- A sheet is closed once every difference outside its tolerance was read again and explained to
-- the last gram; what was explained is never more or less than the difference.
create function ledger_check_count() returns trigger
language plpgsql as $$
declare
  bad record;
begin
  if old.state <> 'open' then
    raise exception 'A count sheet that has ended stays as it is.'
      using errcode = '23514', constraint = 'count_sheet_ended';
  end if;
  if new.state <> 'closed' then
    return new;
  end if;
  select l.readings, coalesce(c.explained, 0) as explained into bad
    from ledger_countline l
    left join lateral (select sum(c.quantity) as explained from ledger_countcause c
                         where c.coop_id = l.coop_id and c.line_id = l.id) c on true
    where l.coop_id = new.coop_id and l.sheet_id = new.id and l.counted is not null
      and (abs(l.counted - l.book) > l.tolerance
             and (l.readings < 2 or coalesce(c.explained, 0) <> l.counted - l.book)
           or c.explained <> l.counted - l.book)
    limit 1;
  if found then
    raise exception 'A difference is not explained.' using errcode = '23514',
      constraint = case when bad.explained = 0 and bad.readings < 2 then 'count_read_again'
                        else 'count_difference_explained' end;
  end if;
  return new;
end $$;
create trigger check_count before update of state on ledger_countsheet
  for each row execute function ledger_check_count();

-- A line of a sheet that has ended stays as it was read.
create function ledger_check_count_line() returns trigger language plpgsql as $$
begin
  raise exception 'A line of a count sheet that has ended stays as it is.'
    using errcode = '23514', constraint = 'count_sheet_ended';
end $$;
create trigger check_count_line before update on ledger_countline
  for each row when (not old.is_open) execute function ledger_check_count_line();
