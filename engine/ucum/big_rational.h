#pragma once
// GMP behind Magnitude and the conversions that 128 bits cannot hold. Only this folder's .cc files
// include it.

#include <gmpxx.h>

#include "engine/base/decimal.h"

namespace engine::ucum {

struct BigRational {
  mpq_class value;
};

mpz_class to_integer(base::UInt128 value);
mpz_class power(unsigned long base, unsigned long exponent);

}  // namespace engine::ucum
