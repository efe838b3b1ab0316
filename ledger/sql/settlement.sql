-- Payments between makers, disputes, and clearing what the whole co-op owes.

select walls.key('ledger_dispute', false),
       walls.link('ledger_dispute', 'maker_id', 'ledger_maker'),
       walls.link('ledger_dispute', 'to_maker_id', 'ledger_maker'),
       walls.link('ledger_dispute', 'movement_id', 'ledger_movement'),
       walls.append_only('ledger_dispute'), walls.wall('ledger_dispute',
         format('coop_id = %1$s and (maker_id = %2$s or to_maker_id = %2$s)',
                walls.reads('app.coop'), walls.reads('app.maker')),
         format('coop_id = %s and maker_id = %s',
                walls.reads('app.coop'), walls.reads('app.maker')));
select walls.key('ledger_clearing', false), walls.of_coop('ledger_clearing'),
       walls.in_coop('ledger_clearing'), walls.append_only('ledger_clearing');
-- The coordinator, who acts for no maker, sees all payments of a clearing.
select walls.key('ledger_clearingpayment', false),
       walls.link('ledger_clearingpayment', 'maker_id', 'ledger_maker'),
       walls.link('ledger_clearingpayment', 'to_maker_id', 'ledger_maker'),
       walls.link('ledger_clearingpayment', 'clearing_id', 'ledger_clearing'),
       walls.append_only('ledger_clearingpayment'), walls.wall('ledger_clearingpayment',
         format('coop_id = %1$s and (maker_id = %2$s or to_maker_id = %2$s or %2$s is null)',
                walls.reads('app.coop'), walls.reads('app.maker')),
         format('coop_id = %s and %s is null',
                walls.reads('app.coop'), walls.reads('app.maker')));
revoke insert on ledger_clearing, ledger_clearingpayment from stillroom;
grant select, insert on ledger_clearing, ledger_clearingpayment to stillroom_ledger;
grant select on ledger_dispute to stillroom_ledger;

-- One of the two whom a movement is between disputes it, towards the other; whoever did so says
-- when that is over.
create function ledger_check_dispute() returns trigger language plpgsql as $$
declare
  latest ledger_dispute;
begin
  if not exists (
      select from ledger_movement m where m.coop_id = new.coop_id and m.id = new.movement_id
        and (m.maker_id, m.to_maker_id) in ((new.maker_id, new.to_maker_id),
                                            (new.to_maker_id, new.maker_id))) then
    raise exception 'A movement is disputed by one of its two makers.'
      using errcode = '23514', constraint = 'dispute_of_own_movement';
  end if;
  select * into latest from ledger_dispute d
    where d.coop_id = new.coop_id and d.movement_id = new.movement_id order by d.id desc limit 1;
  if new.stands = coalesce(latest.stands, false)
      or not new.stands and latest.maker_id <> new.maker_id then
    raise exception 'This changes nothing, or is for the other to say.'
      using errcode = '23514', constraint = 'dispute_changes_something',
        detail = jsonb_build_object('stands', coalesce(latest.stands, false),
                                    'own', latest.maker_id = new.maker_id);
  end if;
  return new;
end $$;
create trigger check_dispute before insert on ledger_dispute
  for each row execute function ledger_check_dispute();

-- The movements that are disputed now. One that was taken back is in nobody's way.
create view ledger_disputed with (security_invoker = true) as
  select d.coop_id, d.movement_id, d.maker_id, d.reason
    from (select distinct on (x.coop_id, x.movement_id) x.*
            from ledger_dispute x order by x.coop_id, x.movement_id, x.id desc) d
    where d.stands and not exists (
      select from ledger_movement r where r.coop_id = d.coop_id and r.reverses_id = d.movement_id);
grant select on ledger_disputed to stillroom_ledger;

-- Money that one maker paid to another, or for it: one entry in each one's books, told by either.
-- With `undoes` it takes an earlier one back, whose payer is now the payee.
create function ledger_record_payment(
  movement uuid, payer uuid, payee uuid, paid numeric, happened timestamptz, told_by int, why text,
  undoes uuid, entries uuid[], payer_accounts uuid[], payee_accounts uuid[]) returns void
language plpgsql security definer set search_path = pg_catalog, public, pg_temp as $$
declare
  coop uuid := nullif(current_setting('app.coop', true), '')::uuid;
  acting uuid := nullif(current_setting('app.maker', true), '')::uuid;
  before ledger_movement;
  who uuid;
  day date;
begin
  if acting is null or acting not in (payer, payee) then
    raise exception 'A payment is told by one of the two.'
      using errcode = '23514', constraint = 'transfer_is_there';
  end if;
  if undoes is not null then
    select * into before from ledger_movement m
      where m.coop_id = coop and m.id = undoes and m.kind = 'payment' and m.reverses_id is null
        and m.maker_id = payee and m.to_maker_id = payer and m.amount = paid;
    if before.id is null then
      raise exception 'No such payment.' using errcode = '23514', constraint = 'transfer_is_there';
    end if;
    if happened < before.happened_at then
      raise exception 'A payment is not undone before it happened.'
        using errcode = '23514', constraint = 'reversal_after_its_entry';
    end if;
  end if;
  insert into ledger_account (coop_id, maker_id, id, kind, name, created_at)
  select coop, a.maker_id, a.id, a.kind, a.name, clock_timestamp()
    from (select payer as maker_id, payer_accounts[1] as id, 'settlement' as kind, m.name
            from ledger_maker m where m.coop_id = coop and m.id = payee
          union all
          select payee, payee_accounts[1], 'settlement', m.name
            from ledger_maker m where m.coop_id = coop and m.id = payer
          union all
          select x.maker, x.id, 'money', 'paid and received'
            from (values (payer, payer_accounts[2]), (payee, payee_accounts[2])) x(maker, id)) a
    order by a.maker_id, a.id on conflict do nothing;
  foreach who in array array[least(payer, payee), greatest(payer, payee)] loop
    perform set_config('app.maker', who::text, true);
    begin
      day := ledger_open_entry(entries[case who when payer then 1 else 2 end],
        case when undoes is null then 'payment' else 'reversal' end, happened, told_by, why, '',
        jsonb_build_object('movement', movement),
        case when who = payer then before.to_entry_id else before.entry_id end);
    exception when check_violation then
      if who = acting then
        raise;
      end if;
      raise exception 'The books of the other maker refuse this.'
        using errcode = '23514', constraint = 'payment_other_can';
    end;
  end loop;
  perform set_config('app.maker', acting::text, true);
  insert into ledger_posting (coop_id, maker_id, entry_id, line, account_id, lot_id, quantity,
    value, happened_on)
  select coop, p.maker, p.entry, p.line, p.account, null, 0, p.value, day
    from (values (payer, entries[1], 1, payer_accounts[2], -paid),
                 (payer, entries[1], 2, payer_accounts[1], paid),
                 (payee, entries[2], 1, payee_accounts[1], -paid),
                 (payee, entries[2], 2, payee_accounts[2], paid))
         p(maker, entry, line, account, value);
  insert into ledger_movement (coop_id, maker_id, to_maker_id, id, kind, amount, happened_at,
    happened_on, recorded_at, note, person_id, reverses_id, entry_id, to_entry_id)
  values (coop, payer, payee, movement, 'payment', paid, happened, day, clock_timestamp(), why,
          told_by, undoes, entries[1], entries[2]);
end $$;
select walls.define('ledger_record_payment(uuid, uuid, uuid, numeric, timestamptz, int, text,'
                    ' uuid, uuid[], uuid[], uuid[])');

-- What the makers of the co-op owe each other, for the coordinator alone, who acts for no maker:
-- sums and nothing of what they are made of. One clearing at a time, from here to its end.
create function ledger_coop_balances() returns table (
  maker uuid, other uuid, balance numeric, disputed numeric)
language plpgsql security definer set search_path = pg_catalog, public, pg_temp as $$
declare
  coop uuid := nullif(current_setting('app.coop', true), '')::uuid;
begin
  if nullif(current_setting('app.maker', true), '') is not null then
    raise exception 'Balances of the co-op are the coordinator''s to see.'
      using errcode = '23514', constraint = 'transfer_is_there';
  end if;
  perform pg_advisory_xact_lock(hashtextextended('clearing of ' || coop, 0));
  return query
  select m.maker_id, m.to_maker_id, sum(m.amount),
         coalesce(sum(m.amount) filter (where d.movement_id is not null), 0)
    from ledger_movement m
    left join ledger_disputed d on d.coop_id = m.coop_id and d.movement_id = m.id
    where m.coop_id = coop group by 1, 2;
end $$;
select walls.define('ledger_coop_balances()');

-- Turns debts between makers into others, by which nobody owes or is owed more in all: for each
-- maker one entry among its settlement accounts, which sums to zero as every entry does. Each
-- change is so much more that `makers[n]` is owed by `others[n]`.
create function ledger_post_clearing(
  clearing uuid, happened timestamptz, told_by int, why text, least_payments int,
  makers uuid[], others uuid[], amounts numeric[], maker_accounts uuid[], other_accounts uuid[],
  payers uuid[], payees uuid[], dues numeric[]) returns void
language plpgsql security definer set search_path = pg_catalog, public, pg_temp as $$
declare
  coop uuid := nullif(current_setting('app.coop', true), '')::uuid;
  who uuid;
  entry uuid;
  day date;
  written jsonb := '{}';
begin
  if nullif(current_setting('app.maker', true), '') is not null then
    raise exception 'A clearing is the coordinator''s.'
      using errcode = '23514', constraint = 'transfer_is_there';
  end if;
  insert into ledger_clearing (coop_id, id, happened_at, note, at_least, person_id, recorded_at)
  values (coop, clearing, happened, why, least_payments, told_by, clock_timestamp());
  insert into ledger_clearingpayment (coop_id, maker_id, to_maker_id, id, clearing_id, amount)
  select coop, p.payer, p.payee, uuidv7(), clearing, p.amount
    from unnest(payers, payees, dues) p(payer, payee, amount);
  insert into ledger_account (coop_id, maker_id, id, kind, name, created_at)
  select coop, a.maker, a.id, 'settlement', m.name, clock_timestamp()
    from (select * from unnest(makers, maker_accounts, others)
          union all select * from unnest(others, other_accounts, makers)) a(maker, id, other)
    join ledger_maker m on m.coop_id = coop and m.id = a.other
    order by a.maker, a.id on conflict do nothing;
  for who in select distinct x.id from unnest(makers || others) x(id) order by 1 loop
    perform set_config('app.maker', who::text, true);
    entry := uuidv7();
    day := ledger_open_entry(entry, 'clearing', happened, told_by, why, '',
      jsonb_build_object('clearing', clearing), null);
    written := written || jsonb_build_object(who::text, entry);
    insert into ledger_posting (coop_id, maker_id, entry_id, line, account_id, lot_id, quantity,
      value, happened_on)
    select coop, who, entry, row_number() over (), c.account, null, 0, c.amount, day
      from (select a.account, a.amount
              from unnest(makers, maker_accounts, amounts) a(maker, account, amount)
              where a.maker = who
            union all
            select a.account, -a.amount
              from unnest(others, other_accounts, amounts) a(maker, account, amount)
              where a.maker = who) c;
  end loop;
  perform set_config('app.maker', '', true);
  insert into ledger_movement (coop_id, maker_id, to_maker_id, id, kind, amount, happened_at,
    happened_on, recorded_at, note, person_id, entry_id, to_entry_id)
  select coop, c.maker, c.other, uuidv7(), 'clearing', c.amount, happened, day,
         clock_timestamp(), why, told_by, (written ->> c.maker::text)::uuid,
         (written ->> c.other::text)::uuid
    from unnest(makers, others, amounts) c(maker, other, amount);
end $$;
select walls.define('ledger_post_clearing(uuid, timestamptz, int, text, int, uuid[], uuid[],'
                    ' numeric[], uuid[], uuid[], uuid[], uuid[], numeric[])');
