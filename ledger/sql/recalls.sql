-- Recalls, who was told, and notices between makers: rows are only added. A notice and an answer to
-- it are their writer's rows, and whoever they are meant for sees them as well.

select walls.key(t, true), walls.link(t, 'maker_id', 'ledger_maker'), walls.append_only(t)
  from unnest(array['ledger_recall', 'ledger_recallcontact', 'ledger_recallclosure',
                    'ledger_recallnotice', 'ledger_recallanswer']) t;
select walls.of_maker(t)
  from unnest(array['ledger_recall', 'ledger_recallcontact', 'ledger_recallclosure']) t;
select walls.link(t, 'to_maker_id', 'ledger_maker'), walls.wall(t,
    format('coop_id = %1$s and (maker_id = %2$s or to_maker_id = %2$s)',
           walls.reads('app.coop'), walls.reads('app.maker')),
    format('coop_id = %s and maker_id = %s', walls.reads('app.coop'), walls.reads('app.maker')))
  from unnest(array['ledger_recallnotice', 'ledger_recallanswer']) t;
select walls.link('ledger_recall', 'lot_id', 'ledger_lot'),
       walls.link('ledger_recall', 'decision_id', 'ledger_decision', 'maker'),
       walls.link('ledger_recallcontact', 'recall_id', 'ledger_recall', 'maker'),
       walls.link('ledger_recallcontact', 'lot_id', 'ledger_lot'),
       walls.link('ledger_recallclosure', 'recall_id', 'ledger_recall', 'maker'),
       walls.link('ledger_recallnotice', 'recall_id', 'ledger_recall', 'maker'),
       walls.link('ledger_recallnotice', 'lot_id', 'ledger_lot'),
       walls.link('ledger_recallanswer', 'decision_id', 'ledger_decision', 'maker');
-- What is passed on was told to whoever passes it on, and what is answered to whoever answers; the
-- answer goes to whoever told it.
alter table ledger_recallnotice
  add constraint ledger_recallnotice_of_receiver unique (coop_id, to_maker_id, id),
  add constraint ledger_recallnotice_of_both unique (coop_id, maker_id, to_maker_id, id),
  add constraint ledger_recallnotice_passes_on_id_fk foreign key (coop_id, maker_id, passes_on_id)
    references ledger_recallnotice (coop_id, to_maker_id, id);
alter table ledger_recallanswer
  add constraint ledger_recallanswer_notice_id_fk
    foreign key (coop_id, to_maker_id, maker_id, notice_id)
    references ledger_recallnotice (coop_id, maker_id, to_maker_id, id);

alter table ledger_recall add constraint recall_not_in_future
  check (happened_at <= opened_at + interval '1 minute');
alter table ledger_recallclosure add constraint recall_closed_not_in_future
  check (happened_at <= recorded_at + interval '1 minute');
grant select on ledger_recallnotice, ledger_recallanswer to stillroom_ledger;

-- A notice goes to whoever has the lot or had it; who that is, its sender need not see.
create function ledger_check_notice() returns trigger
language plpgsql security definer set search_path = pg_catalog, public, pg_temp as $$
begin
  if not exists (select from ledger_custody c where c.coop_id = new.coop_id
                   and c.maker_id = new.to_maker_id and c.lot_id = new.lot_id) then
    raise exception 'A notice goes to whoever has the lot.'
      using errcode = '23514', constraint = 'notice_to_holder';
  end if;
  return new;
end $$;
select walls.define('ledger_check_notice()');
create trigger check_notice before insert on ledger_recallnotice
  for each row execute function ledger_check_notice();

-- A lot has one open recall of a maker, and nothing is added to one that is closed.
create function ledger_check_recall() returns trigger language plpgsql as $$
begin
  if exists (select from ledger_recall r where r.coop_id = new.coop_id
               and r.maker_id = new.maker_id and r.lot_id = new.lot_id
               and not exists (select from ledger_recallclosure c
                 where c.coop_id = r.coop_id and c.recall_id = r.id)) then
    raise exception 'This lot is being recalled already.'
      using errcode = '23514', constraint = 'recall_open_once';
  end if;
  return new;
end $$;
create trigger check_recall before insert on ledger_recall
  for each row execute function ledger_check_recall();
create function ledger_check_contact() returns trigger language plpgsql as $$
begin
  if exists (select from ledger_recallclosure c
               where c.coop_id = new.coop_id and c.recall_id = new.recall_id) then
    raise exception 'The recall is closed.'
      using errcode = '23514', constraint = 'recall_still_open';
  end if;
  return new;
end $$;
create trigger check_contact before insert on ledger_recallcontact
  for each row execute function ledger_check_contact();

-- The notices of one's own recall, those included by which they were passed on, each with its
-- latest answer. To whom a notice was passed on is the affair of whoever did so, and is not told.
-- `counts` is true of one answer of each maker, so that nothing is summed twice.
create function ledger_recall_answers(recall uuid) returns table (
  notice uuid, maker uuid, lot uuid, quantity numeric, sent_at timestamptz,
  answered_at timestamptz, held boolean, tally jsonb, corrected jsonb, reason text, counts boolean)
language sql stable security definer set search_path = pg_catalog, public, pg_temp as $$
  with recursive own(coop, maker) as (
    select nullif(current_setting('app.coop', true), '')::uuid,
           nullif(current_setting('app.maker', true), '')::uuid
  ), told(id, to_maker, lot, quantity, sent, direct) as (
    select n.id, n.to_maker_id, n.lot_id, n.quantity, n.sent_at, true
      from own join ledger_recallnotice n on n.coop_id = own.coop and n.maker_id = own.maker
        and n.recall_id = recall
    union all
    select n.id, n.to_maker_id, n.lot_id, n.quantity, n.sent_at, false
      from told t cross join own
      join ledger_recallnotice n on n.coop_id = own.coop and n.passes_on_id = t.id
  )
  select t.id, case when t.direct then t.to_maker end, t.lot, t.quantity, t.sent, a.answered_at,
         a.decision_id is not null, a.tally, a.corrected, a.reason,
         a.id is not null and t.to_maker <> own.maker
           and row_number() over (partition by t.to_maker, t.lot order by a.id desc nulls last) = 1
    from told t cross join own
    left join lateral (
      select x.id, x.answered_at, x.decision_id, x.tally, x.corrected, x.reason
        from ledger_recallanswer x where x.coop_id = own.coop and x.notice_id = t.id
        order by x.id desc limit 1) a on true
    order by t.id
$$;
select walls.define('ledger_recall_answers(uuid)');
